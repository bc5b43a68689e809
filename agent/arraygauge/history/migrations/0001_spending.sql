-- What probing took of each device. Raw entries are kept for two days; then one row a day and
-- device (UTC days since 1970) stands for them.
CREATE TABLE device (
  id INTEGER PRIMARY KEY,
  stable_id TEXT NOT NULL UNIQUE
) STRICT;

-- Uptime tells the age of an entry of this boot, whatever was done to the clock since.
CREATE TABLE boot (
  id INTEGER PRIMARY KEY,
  boot_id TEXT NOT NULL UNIQUE
) STRICT;

-- burst: the token under which a burst was reserved and settled; its rows are replaced together.
CREATE TABLE spending (
  id INTEGER PRIMARY KEY,
  burst INTEGER NOT NULL,
  device INTEGER NOT NULL REFERENCES device (id),
  boot INTEGER REFERENCES boot (id),
  started_at_seconds REAL NOT NULL,
  started_at_uptime_seconds REAL NOT NULL,
  read_bytes INTEGER NOT NULL,
  written_bytes INTEGER NOT NULL,
  busy_seconds REAL NOT NULL
) STRICT;
CREATE INDEX spending_by_device ON spending (device);
CREATE INDEX spending_by_burst ON spending (burst);

CREATE TABLE spending_day (
  device INTEGER NOT NULL REFERENCES device (id),
  day INTEGER NOT NULL,
  read_bytes INTEGER NOT NULL,
  written_bytes INTEGER NOT NULL,
  busy_seconds REAL NOT NULL,
  PRIMARY KEY (device, day)
) STRICT, WITHOUT ROWID;
