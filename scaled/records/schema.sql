-- The journal. Events are only ever added; every other table is found again from them and serves to look things up.
-- A batch's state stands nowhere: it is folded from its events.

-- Who writes here: one row, made when the file is.
CREATE TABLE bench (
  id      TEXT NOT NULL,  -- (id, sequence) is an event's identity, across files and benches
  made    TEXT NOT NULL,  -- ISO 8601 with offset
  program TEXT NOT NULL   -- the version of the program whose schema this is, to name it to an older one
) STRICT;

CREATE TABLE batches (
  number  INTEGER PRIMARY KEY,  -- in the order in which they began
  id      TEXT NOT NULL UNIQUE,
  formula TEXT,                 -- the stem
  title   TEXT,
  started TEXT NOT NULL         -- ISO 8601 with offset, as the wall clock stood
) STRICT;

-- A formula as it was when a batch began, once for all batches that began with it.
CREATE TABLE formulas (
  hash TEXT PRIMARY KEY,  -- SHA-256 of the text
  text TEXT NOT NULL      -- canonical JSON
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
  sequence INTEGER PRIMARY KEY,  -- from 1, without gaps
  batch    INTEGER NOT NULL REFERENCES batches (number),
  formula  TEXT REFERENCES formulas (hash),  -- set where that text stood in this one before its hash took its place
  text     TEXT NOT NULL,                    -- canonical JSON of the envelope
  chain    TEXT NOT NULL                     -- SHA-256 of the chain before, a line feed and the whole text
) STRICT;

CREATE INDEX events_of_a_batch ON events (batch);

CREATE TABLE lots (
  lot      TEXT NOT NULL COLLATE NOCASE,
  batch    INTEGER NOT NULL REFERENCES batches (number),
  sequence INTEGER NOT NULL REFERENCES events (sequence),
  addition TEXT NOT NULL,  -- its key
  PRIMARY KEY (lot, batch, sequence)
) STRICT, WITHOUT ROWID;
