"""People: what each transmitter works where, since when, until when, and when it was last used."""

from gateway.watch.people.directory import Directory

__all__ = ["Directory"]
