"""What the board offers: notices to the service manager, clock trust, secret files, disk space, the boot's id."""
