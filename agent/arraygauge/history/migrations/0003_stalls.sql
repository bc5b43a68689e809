-- Stretches in which a drive had requests in flight and completed none, seen by the kernel's
-- counters. began_at_seconds: since 1970. frames_per_second: the declared rate at the time.
CREATE TABLE stall (
  id INTEGER PRIMARY KEY,
  token INTEGER NOT NULL UNIQUE,
  device INTEGER NOT NULL REFERENCES device (id),
  name INTEGER NOT NULL REFERENCES word (id),
  began_at_seconds REAL NOT NULL,
  milliseconds INTEGER NOT NULL,
  error_milliseconds INTEGER NOT NULL,
  in_flight INTEGER NOT NULL,
  hang INTEGER NOT NULL,
  frames_per_second REAL NOT NULL
) STRICT;
