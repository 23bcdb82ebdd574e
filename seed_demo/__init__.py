"""seed_demo."""
