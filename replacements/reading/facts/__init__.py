"""What a message states as fact: dates, addresses, names, numbers, relations, each with its place in the text."""
