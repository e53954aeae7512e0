-- The first form of a log; each later one is a step of `_STEPS` beyond it.
CREATE TABLE content (
    digest TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    data BLOB NOT NULL
);

CREATE TABLE entry (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    at TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('assessment', 'outcome')),
    about TEXT REFERENCES entry (id),
    corrects TEXT REFERENCES entry (id),
    body TEXT NOT NULL,
    digest TEXT NOT NULL
);

CREATE TABLE uses (
    entry TEXT NOT NULL REFERENCES entry (id),
    what TEXT NOT NULL,
    content TEXT NOT NULL REFERENCES content (digest),
    PRIMARY KEY (entry, what)
);
