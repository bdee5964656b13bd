"""What a receiver, a roster, a plan and an event ARE.

Frozen values and pure functions. Nothing here reads a clock, a file or a socket: "now" is an argument.
"""
