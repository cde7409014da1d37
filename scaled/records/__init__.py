"""The records: the journal on disk, what is looked up in it, and what is handed out of it.

Writing: `writer` is the thread, `journal` the file that it writes to under a `lock`, `batch_ids` gives out the ids;
`database` opens SQLite as it must be, `stored` makes an event a row and back, `examination` looks at a file before it
is written to.

Reading: `reader` asks, each question a function of `look_up`; `export` is for spreadsheets, `verification` tells
whether all is as it was written, `copies` of each day and month lie beside the file.
"""
