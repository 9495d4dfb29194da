"""The roll: import, normal forms of names and addresses, candidates, weight of evidence, standing."""
