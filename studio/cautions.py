"""What every caution ends with: it reminds, and points to who and what decides."""

TAIL = (
    "Follow the safety data sheet and the maker’s instructions. Local rules decide what may go "
    "to drain. Ask a licensed or qualified person where you are not sure."
)
