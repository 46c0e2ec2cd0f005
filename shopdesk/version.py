"""The version of this program, shown to the owner and stored in backups."""

VERSION = "0.9.0"
