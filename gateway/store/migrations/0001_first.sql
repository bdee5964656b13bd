-- Times are microseconds since 1970-01-01 UTC. JSON is canonical: keys sorted, no blanks, ASCII.

create table meta (
  key text primary key,
  value text not null
) strict, without rowid;

-- One row per start of the operating system that wrote events; events refer to it by number.
create table boots (
  number integer primary key,
  boot_id text not null unique
) strict;

create table events (
  number integer primary key,
  name text not null,
  receiver text not null,
  time_us integer not null,
  clock_trusted integer not null check (clock_trusted in (0, 1)),
  boot integer not null,
  monotonic_s real not null,
  data text not null check (json_valid(data)),
  earliest_us integer,
  latest_us integer
) strict;
create index events_by_name on events (name);
create index events_by_receiver on events (receiver);

create table cursors (
  receiver text primary key,
  boot_count integer not null,
  number integer not null
) strict, without rowid;

-- A mirror is one head and one row per slot that exists.
create table mirrors (
  receiver text primary key,
  head text not null check (json_valid(head))
) strict;
create table mirror_slots (
  receiver text not null,
  number integer not null,
  slot text not null check (json_valid(slot)),
  primary key (receiver, number)
) strict, without rowid;

-- What changes while a plan is applied stands apart from its changes, which are written once.
create table plans (
  sequence integer primary key,
  id text not null unique,
  receiver text not null,
  state text not null,
  final integer not null check (final in (0, 1)),
  progress text not null check (json_valid(progress)),
  body_digest text not null
) strict;
create index plans_by_receiver on plans (receiver);
create index plans_unfinished on plans (sequence) where final = 0;
create table plan_bodies (
  id text primary key,
  body text not null check (json_valid(body))
) strict;

create table proofs (
  serial integer not null,
  receiver text not null,
  revocation text not null,
  primary key (serial, receiver)
) strict, without rowid;

create table runs (
  name text primary key,
  due_us integer not null
) strict, without rowid;

-- salt and personal are null once erased; personal_hash keeps the chain whole.
create table audit (
  number integer primary key,
  time_us integer not null,
  boot_id text not null,
  monotonic_s real not null,
  who text not null,
  what text not null,
  outcome text not null,
  salt blob,
  personal text,
  personal_hash blob not null,
  hash blob not null
) strict;
