"""A private Redis for tests."""
