"""Snapshots: what is archived of a receiver, when and under which id."""
