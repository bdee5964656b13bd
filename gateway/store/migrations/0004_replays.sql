-- What was answered to requests with an Idempotency-Key, so that a repetition after a restart is known as one.
create table replays (
  key text primary key,
  digest blob not null,
  boot_id text not null,
  monotonic_s real not null,
  time_us integer not null,
  status integer not null,
  headers text not null check (json_valid(headers)),
  body blob not null
) strict;
create index replays_by_time on replays (time_us);
