"""The cautions that every face and every report carries."""

CAUTIONS = (
    "Research, teaching and audit software. Not a medical device and not cleared as one.",
    "It does not decide treatment and does not guide surgery; values are checked by a qualified "
    "clinician against the source picture and the original printout.",
    "Follow local law, consent, data-protection and device rules.",
    "What cannot be seen is refused or marked unverified, never guessed.",
)
