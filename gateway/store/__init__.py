"""What lasts: the database, the ledger beside it, snapshot files and the bytes of accepted rosters.

Everything in one state folder that only the gateway's own user can read. `opening.open_store` is the way in.
"""
