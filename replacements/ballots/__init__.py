"""A ballot's life and the ledger: issue, void and reissue, take back, return, verify, reconcile."""
