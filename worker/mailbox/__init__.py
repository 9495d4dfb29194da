"""Reading the office's mailbox: every message is handed over whole, and only then marked in the mailbox."""
