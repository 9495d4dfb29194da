"""A request's life from the mailbox to done: the one place where the other rooms meet, a transaction each."""
