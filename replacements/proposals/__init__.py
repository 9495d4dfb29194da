"""Reading + who + ballot + rules + now to a `Proposal` with reasons: one decision table. Pure."""
