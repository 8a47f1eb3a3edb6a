"""The live bench: a page on one rig whose every quantity can be changed, and the server behind it."""
