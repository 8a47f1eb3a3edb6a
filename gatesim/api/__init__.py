"""The front door: one function a command, each with a result that says, lists and draws itself."""
