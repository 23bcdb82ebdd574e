"""The screens: Fleet, Line, Job sheet and Cold offsets, each view at an address of its own.

`app.create_app` builds the application for one store; `serving.serve` runs it on this machine. `address` reads and
writes what an address says, `sources` binds the services, `pages` turns a service's result into a page, `figures`
draws, `components` holds the pieces pages share, `assets` the look. Only services and reports are called from here.
"""
