"""The workbench: pages on this machine only; parses and shows, no formula lives here."""
