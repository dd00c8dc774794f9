"""Plan: what should be made, how likely it covers the optic, and what spoils it first."""
