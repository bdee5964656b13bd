"""The map model: where in a receiver's registers everything lies, as data that anybody can write.

`load_map` reads a TOML file and checks it; the driver and the virtual receiver then work on `ReceiverMap`
alone. This room knows layouts and encodings, nothing of lines, frames or what a value means to the job.
"""

from __future__ import annotations

from gateway.maps.fields import Field, FieldType, Value
from gateway.maps.layout import Block, ReceiverMap, Role, Table
from gateway.maps.loading import built_in_maps, load_map

__all__ = ["Block", "Field", "FieldType", "ReceiverMap", "Role", "Table", "Value", "built_in_maps", "load_map"]
