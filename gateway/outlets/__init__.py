"""Where events go: webhook, MQTT, alarm reporting, mail.

One task for each outlet reads the journal by a cursor and hands one event after the other to its way out
(`runner`); how far it has come is kept in the store. `house` owns the runners and answers for them. Knows the
journal and the outbox by their ports alone.
"""
