"""What the terminal of the server shows."""

import logging


class WithoutTraceOfRefusals(logging.Filter):
    """Keep a refused page to one line; only what is broken shows where it broke."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Take the trace off everything below an error, and off a full disk or a lock."""
        if record.levelno < logging.ERROR or _is_outage(record):
            record.exc_info = None
            record.exc_text = None
        return True


def _is_outage(record: logging.LogRecord) -> bool:
    # Logging is set up before the apps are.
    from studio.outages import in_one_line, is_outage

    fault = record.exc_info[1] if isinstance(record.exc_info, tuple) else None
    if fault is None or not is_outage(fault):
        return False
    record.msg, record.args = f"{record.getMessage()}: {in_one_line(fault)}", ()
    return True
