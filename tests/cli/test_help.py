"""What the command says of itself."""

import pytest

from tests.cli.command import halfturn


@pytest.mark.parametrize("words", [(), ("rack",)])
def test_the_list_of_commands_says_all_it_has_to_say(words: tuple[str, ...]) -> None:
    told = halfturn(*words, "--help")
    commands = told.stdout.partition("Commands:\n")[2]
    assert told.returncode == 0
    assert commands.count("\n  ") > 5
    assert "..." not in commands
