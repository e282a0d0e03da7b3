"""A placement from receipt to return: what was done, what comes next, what is worked out for it, and the call it turns into."""
