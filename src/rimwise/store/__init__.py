"""Keep every eye's records and pictures, unchanged and checked."""
