-- What was measured, what was the matter, and who was told. Dates are seconds since 1970; where
-- a clock that was set must change nothing, uptime_epoch_seconds is the date at which this boot's
-- uptime was 0, by the clock of the same moment.

-- Text that many rows share: kernel names, workloads, outcomes, channels, boots.
CREATE TABLE word (
  id INTEGER PRIMARY KEY,
  text TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE measurement (
  device INTEGER NOT NULL REFERENCES device (id),
  workload INTEGER NOT NULL REFERENCES word (id),
  started_at_seconds REAL NOT NULL,
  name INTEGER NOT NULL REFERENCES word (id),
  outcome INTEGER NOT NULL REFERENCES word (id),
  bytes INTEGER NOT NULL,
  seconds REAL NOT NULL,
  rate_bytes_per_second REAL,
  low_bytes_per_second REAL,
  high_bytes_per_second REAL,
  floor_bytes_per_second REAL,
  ceiling_bytes_per_second REAL,
  ratio REAL,
  temperature_celsius REAL,
  pace INTEGER NOT NULL REFERENCES word (id),
  cause INTEGER REFERENCES word (id),
  PRIMARY KEY (device, workload, started_at_seconds)
) STRICT, WITHOUT ROWID;

-- One row stands for a day of measurements (UTC days since 1970) that are kept no longer.
-- rated: how many of them gave a rate that may be judged; short: how many were short of it.
CREATE TABLE measurement_day (
  device INTEGER NOT NULL REFERENCES device (id),
  workload INTEGER NOT NULL REFERENCES word (id),
  day INTEGER NOT NULL,
  name INTEGER NOT NULL REFERENCES word (id),
  made INTEGER NOT NULL,
  rated INTEGER NOT NULL,
  short INTEGER NOT NULL,
  bytes INTEGER NOT NULL,
  least_bytes_per_second REAL,
  median_bytes_per_second REAL,
  most_bytes_per_second REAL,
  floor_bytes_per_second REAL,
  ceiling_bytes_per_second REAL,
  hottest_celsius REAL,
  PRIMARY KEY (device, workload, day)
) STRICT, WITHOUT ROWID;

-- severity and worst: 0 information, 1 minor, 2 major, 3 critical. also: other findings with the
-- same cause, as JSON. document: what was told last, as JSON.
CREATE TABLE incident (
  number INTEGER PRIMARY KEY,
  device INTEGER NOT NULL REFERENCES device (id),
  cause_name TEXT NOT NULL,
  origin TEXT NOT NULL,
  matter TEXT NOT NULL,
  severity INTEGER NOT NULL,
  worst INTEGER NOT NULL,
  arrays TEXT NOT NULL,
  signature TEXT NOT NULL,
  also TEXT NOT NULL,
  boot INTEGER REFERENCES word (id),
  uptime_epoch_seconds REAL NOT NULL,
  opened_at_seconds REAL NOT NULL,
  seen_at_seconds REAL NOT NULL,
  told_at_seconds REAL NOT NULL,
  closed_at_seconds REAL,
  reopened INTEGER NOT NULL,
  headline TEXT NOT NULL,
  document TEXT NOT NULL
) STRICT;
CREATE INDEX incident_by_end ON incident (closed_at_seconds);

-- token: chosen before the row is first written, so that writing it again changes nothing.
CREATE TABLE incident_change (
  id INTEGER PRIMARY KEY,
  token INTEGER NOT NULL UNIQUE,
  incident INTEGER NOT NULL REFERENCES incident (number),
  kind TEXT NOT NULL,
  severity INTEGER NOT NULL,
  boot INTEGER REFERENCES word (id),
  uptime_epoch_seconds REAL NOT NULL,
  at_seconds REAL NOT NULL,
  told INTEGER NOT NULL,
  headline TEXT NOT NULL,
  document TEXT NOT NULL
) STRICT;
CREATE INDEX incident_change_by_incident ON incident_change (incident);

-- The outbox: one row for each change and channel. The tried_ columns are those of the last
-- attempt; the next is wait_seconds after it. outcome: NULL while it is still to be sent.
CREATE TABLE delivery (
  change INTEGER NOT NULL REFERENCES incident_change (id),
  channel INTEGER NOT NULL REFERENCES word (id),
  attempts INTEGER NOT NULL,
  wait_seconds REAL NOT NULL,
  withheld INTEGER NOT NULL,
  boot INTEGER REFERENCES word (id),
  uptime_epoch_seconds REAL,
  tried_at_seconds REAL,
  last_error TEXT,
  outcome TEXT,
  PRIMARY KEY (change, channel)
) STRICT, WITHOUT ROWID;
CREATE INDEX delivery_to_send ON delivery (change) WHERE outcome IS NULL;

-- device NULL: everything is silent.
CREATE TABLE silence (
  id INTEGER PRIMARY KEY,
  device INTEGER REFERENCES device (id),
  made_at_seconds REAL NOT NULL,
  until_seconds REAL NOT NULL
) STRICT;

CREATE TABLE inventory_change (
  id INTEGER PRIMARY KEY,
  token INTEGER NOT NULL UNIQUE,
  at_seconds REAL NOT NULL,
  device INTEGER NOT NULL REFERENCES device (id),
  name TEXT NOT NULL,
  what TEXT NOT NULL,
  before TEXT,
  after TEXT
) STRICT;

-- What the agent has to know again after a restart, as JSON by key.
CREATE TABLE remembered (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL,
  at_seconds REAL NOT NULL
) STRICT, WITHOUT ROWID;
