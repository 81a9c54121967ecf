"""Words, units and figures for numbers; knows the forms of results, not their classes."""
