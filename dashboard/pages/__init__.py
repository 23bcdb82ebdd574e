"""dashboard/pages."""
