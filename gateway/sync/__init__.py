"""Bringing receivers to the roster: plan, apply, prove; the timetable; revocation; settings.

This room knows the wire only through `ports.Receiver` and files and tables only through the other ports.
Its pure parts (desired, planning, guard, words) decide; the others only carry out what those decided.
"""
