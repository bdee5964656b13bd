"""The shapes of bodies and answers, by resource. Field names are the words of the design, in snake case."""
