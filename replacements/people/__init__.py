"""Members of staff: their accounts, their roles, what each role may do, and signing in and out."""
