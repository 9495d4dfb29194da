"""The week in numbers: what came in, what went out, how fast, and what is unusual. Ids and counts only, no names."""
