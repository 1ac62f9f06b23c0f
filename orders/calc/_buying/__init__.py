"""How purchases are found: terms, what is missing when, the rule, the model, the flags."""
