"""Choose, fill and preview a reviewed text; the outbox."""
