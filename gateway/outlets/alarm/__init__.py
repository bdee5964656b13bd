"""Alarm reporting by ANSI/SIA DC-09 (Internet Protocol Event Reporting).

`frames` writes and reads what is on the wire, `codes` says which event is which code, `station` sends one message
and waits for its answer, `outlet` keeps order, addresses, time and supervision. The payloads are Contact ID
(DC-05, `ADM-CID`) and SIA (DC-03, `SIA-DCS`).

Sources: ANSI/SIA DC-09 as far as it is quoted in docs/outlets/alarm.md; frames recomputed from published ones.
"""
