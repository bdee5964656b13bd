-- Who had access to what. A moment is when something was seen to change: earliest_us and latest_us bound it and are the
-- same once it is known; latest_us is null until a clock that is right has said something.
create table moments (
  number integer primary key,
  clock_us integer not null,
  trusted integer not null check (trusted in (0, 1)),
  boot_id text not null,
  monotonic_s real not null,
  earliest_us integer,
  latest_us integer
) strict;
create index moments_unsettled on moments (number) where latest_us is null;

-- What each slot was proven to hold, from one moment to another; last null: it still does.
create table memory_spans (
  number integer primary key,
  receiver text not null,
  slot integer not null,
  serial integer not null,
  held text not null check (json_valid(held)),
  first integer not null,
  last integer
) strict;
create index memory_spans_by_serial on memory_spans (serial);
create index memory_spans_open on memory_spans (receiver, slot) where last is null;
create index memory_spans_by_last on memory_spans (last);

-- Since when a receiver's memory is recorded.
create table memory_since (
  receiver text primary key,
  moment integer not null
) strict, without rowid;

-- Accepted rosters, and their rows from the revision that brought them to the one that no longer has them so.
create table roster_revisions (
  number integer primary key,
  digest text not null,
  revision integer,
  moment integer not null,
  transmitters integer not null,
  holders integer not null,
  added integer not null,
  changed integer not null,
  removed integer not null
) strict;
create table roster_rows (
  number integer primary key,
  serial integer not null,
  entry text not null check (json_valid(entry)),
  first integer not null,
  last integer
) strict;
create index roster_rows_by_serial on roster_rows (serial);
create index roster_rows_by_last on roster_rows (last);
