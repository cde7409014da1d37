"""What a person reads in a terminal: tables, the record of a batch, the ways back from a bowl that went wrong."""
