"""The records: the journal on disk, what is looked up in it, and what is handed out of it."""
