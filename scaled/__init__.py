"""The companion at a pastry cook's bench. `DEVELOPERS.md` has a map of its rooms; each says more in its first lines."""
