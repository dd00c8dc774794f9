"""Results as pages and drawings, still pure: no disk, no screen."""
