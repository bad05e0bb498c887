"""The demonstration: an invented shop, two invented seasons, and one story played through the running site."""
