"""Numbers from papers, each with its unit, spread, valid range, source and status."""
