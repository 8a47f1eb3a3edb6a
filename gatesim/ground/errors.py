"""Errors a user can mend: one clear sentence, exit code 2, no traceback."""


class InputError(ValueError):
    """Bad input. The message is one sentence: file, key, what was given, what is expected."""
