"""One module per journey: each reads the store, calls the pure parts, and returns frozen results.

`opening`, `importing`, `exporting` and `catalog` look after the record; `reduction` brings surveys to offsets and
`refresh` keeps all derived results at the facts; `plant`, `settings`, `series` and `running_checks` are the shared
readings of the record that `offsets`, `drift`, `forecasting` and `cold_offsets` stand on; `fleet_page`, `line_page`
(with `line_history`), `cold_offsets_page` and `job_sheet` are what the pages show; `rows` and `tables` what the
commands print.
"""
