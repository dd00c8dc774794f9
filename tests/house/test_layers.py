"""The layers that readers are told about are the layers that are enforced."""

import re

import tree


def test_the_design_page_shows_the_layers_that_are_enforced() -> None:
    page = tree.text("docs/design.md")
    drawn = page.split("## Layers", 1)[1].split("```")[1].strip().splitlines()
    shown = [re.split(r" {2,}", line)[0].split(" | ") for line in drawn]
    enforced = [
        [name.strip("() ") for name in line.split("|")]
        for line in tree.contract("layers")["layers"]
    ]
    assert shown == enforced
