"""Charts as plain data, drawn by pure functions of what a service returned."""
