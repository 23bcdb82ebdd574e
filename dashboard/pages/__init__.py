"""One module a page: a function from what a service returned and an address to what is shown."""
