"""The long test: what the program survives, and what it loses."""
