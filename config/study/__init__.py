"""A throw-away installation for studies of the outbox: its own database, broker and mail server, and real workers."""
