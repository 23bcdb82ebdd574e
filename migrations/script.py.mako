"""${message}

Rules of a revision:
- The docstring opens with a sentence that says what changes, and goes on with why.
- Schema change and backfill are two revisions. None imports a model: the models go on changing, a revision does not.
- Tables that exist are changed in batch mode (`with op.batch_alter_table(...)`), constraints named by the convention.
- The triggers that freeze signed facts are off during the run and put back at its end; a revision never names them.
- The downgrade works with data in the tables, or raises with the reason.
- A test beside it migrates rows of the older shape, with rows that must stay as they are, on both engines.

Revision ID: ${up_revision}
Revises: ${down_revision | comma,n}
Create Date: ${create_date}
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op
${imports if imports else ""}
revision: str = ${repr(up_revision)}
down_revision: str | None = ${repr(down_revision)}
branch_labels: str | Sequence[str] | None = ${repr(branch_labels)}
depends_on: str | Sequence[str] | None = ${repr(depends_on)}


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    ${downgrades if downgrades else "pass"}
