"""`gatepost people`: who works what where, and the roster that a gateway keeps itself."""

from gateway.cli.people.editing import people
from gateway.cli.people.files import export, history, import_, restore
from gateway.cli.people.forgetting import forget
from gateway.cli.people.grouping import group
from gateway.cli.people.looking import list_people, show

__all__ = ["people"]

people.command("list")(list_people)
people.command("show")(show)
people.command("export")(export)
people.command("import")(import_)
people.command("restore")(restore)
people.command("history")(history)
people.command("forget")(forget)
people.add_typer(group, name="group")
