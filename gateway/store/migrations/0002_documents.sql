-- What a use case has to remember over a restart, one small JSON document each.
create table documents (
  key text primary key,
  value text not null check (json_valid(value))
) strict, without rowid;
