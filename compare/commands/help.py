"""foldgauge help: the documents that come with the program."""

import sys

import click

from compare.tell.help.topics import TOPICS


@click.command("help")
@click.argument("topic", required=False, type=click.Choice(TOPICS), metavar="[TOPIC]")
def help_topic(topic: str | None) -> None:
    """Explain a TOPIC at length: photo, spec, design, answer, lots ..."""
    from compare.tell.help.topics import topic_text, topic_title

    if topic is None:
        width = max(map(len, TOPICS))
        click.echo("Topics (foldgauge help TOPIC):\n")
        for name in TOPICS:
            click.echo(f"  {name:<{width}}  {topic_title(name)}")
        return
    if not sys.stdout.isatty():
        click.echo(topic_text(topic), nl=False)
        return
    from rich.console import Console
    from rich.markdown import Markdown

    Console(width=min(Console().width, 100)).print(Markdown(topic_text(topic)))
