"""The week in numbers."""
