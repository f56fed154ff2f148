"""Files to types; every error names file, field, rule, value and mend."""
