"""What is done about a making: planned, logged at the vat, finished."""
