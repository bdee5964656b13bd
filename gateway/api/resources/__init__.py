"""The handlers, by resource. Each reads what was sent, calls ports, and writes an answer; rules live elsewhere."""
