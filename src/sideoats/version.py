"""The version, alone in a leaf so that every room can stamp its answers with it."""

VERSION = "0.1.0"
