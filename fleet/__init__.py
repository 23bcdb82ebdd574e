"""The record and the arithmetic of barrel alignment.

The pure parts (`measure`, `thermal`, `trend`) take arrays and small value objects and know no store; `store` holds
the relational record and the only SQL; `intake` reads and writes the exchange format; `reports` renders paper;
`services` has one module per journey and joins them; `cli` is the command.
"""
