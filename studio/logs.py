"""What the terminal of the server shows."""

import logging


class WithoutTraceOfRefusals(logging.Filter):
    """Keep a refused page to one line; only what is broken shows where it broke."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Take the trace off everything below an error."""
        if record.levelno < logging.ERROR:
            record.exc_info = None
            record.exc_text = None
        return True
