"""A headless Chromium for tests."""
