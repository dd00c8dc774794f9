"""The command line: parses and shows; no formula lives here."""
