"""The sizing bench: formulas of the trade with every number traced to its inputs, formula and source."""
