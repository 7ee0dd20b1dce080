-- hvproof.db, version 1. Every table is keyed by the origin of a log, so that
-- one file can hold several logs: this device's own and those handed over to it.

-- One row a log: how long it is, and the signed head of its tree.
CREATE TABLE log (
    origin     TEXT    NOT NULL PRIMARY KEY, -- name of the log, as in the first line of its checkpoints
    size       INTEGER NOT NULL              -- number of entries
               CHECK (size >= 0),
    checkpoint TEXT    NOT NULL              -- C2SP tlog-checkpoint of exactly these entries, signed by the log's key
) STRICT, WITHOUT ROWID;

-- The entries as they were signed, each with the tree hashes that it completes.
CREATE TABLE entry (
    origin  TEXT    NOT NULL REFERENCES log (origin),
    "index" INTEGER NOT NULL                 -- 0, 1, 2, … without a gap
            CHECK ("index" >= 0),
    hashes  BLOB    NOT NULL                 -- SHA-256 hashes of the RFC 6962 tree, 32 bytes each: first that of the
            CHECK (length(hashes) % 32 = 0), -- leaf, then those of the inner nodes that it completes, going up
    note    TEXT    NOT NULL,                -- the whole C2SP signed note; its bytes are the leaf of the tree
    PRIMARY KEY (origin, "index")
) STRICT;

-- A guard against slips. The proof that nothing was changed is the tree.
CREATE TRIGGER entry_next BEFORE INSERT ON entry
    WHEN new."index" IS NOT (SELECT coalesce(max("index") + 1, 0) FROM entry WHERE origin = new.origin)
    BEGIN SELECT raise(ABORT, 'append-only: not the next entry'); END;
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
    BEGIN SELECT raise(ABORT, 'append-only: an entry is never changed'); END;
CREATE TRIGGER entry_kept BEFORE DELETE ON entry
    BEGIN SELECT raise(ABORT, 'append-only: an entry is never deleted'); END;
CREATE TRIGGER log_begins BEFORE INSERT ON log
    WHEN new.size <> 0 OR EXISTS (SELECT 1 FROM log WHERE origin = new.origin)
    BEGIN SELECT raise(ABORT, 'append-only: a log begins empty and once'); END;
CREATE TRIGGER log_grows BEFORE UPDATE ON log
    WHEN new.origin IS NOT old.origin OR new.size <= old.size
    BEGIN SELECT raise(ABORT, 'append-only: a log only grows'); END;
CREATE TRIGGER log_kept BEFORE DELETE ON log
    BEGIN SELECT raise(ABORT, 'append-only: a log is never deleted'); END;
