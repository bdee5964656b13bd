-- How far each outlet has come through the events; the events themselves are not copied.
create table outbox (
  outlet text primary key,
  state text not null check (json_valid(state))
) strict, without rowid;

-- Events that an outlet refused. Only their numbers: what they said goes when the journal forgets them.
create table outbox_set_aside (
  sequence integer primary key,
  outlet text not null,
  number integer not null,
  name text not null,
  receiver text not null,
  problem text not null,
  time_us integer not null
) strict;
create index outbox_set_aside_by_outlet on outbox_set_aside (outlet, sequence);
