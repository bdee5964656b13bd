"""Everything that a command may load, for the process that commands of tests are forked from. It runs nothing."""

from __future__ import annotations

import os

# what the console takes from the environment when it is made: a plain stream as wide as that of a command in a test
os.environ.update(COLUMNS="200", TERM="dumb")

import gateway.cli.checking
import gateway.daemon
import gateway.outlets.alarm.outlet
import gateway.outlets.mail
import gateway.outlets.mqtt
import gateway.outlets.webhook
import gateway.roster.checking
import gateway.roster.http_source
import gateway.roster.signed_source
import gateway.settings
import gateway.virtual.process  # noqa: F401
from gateway.cli.app import command_line

command_line()
