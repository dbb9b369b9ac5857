"""Blocks on their way from the engine's thread to a test that a person is making."""

import queue

from shopmon.signals.block import Block

MOST_QUEUED = 400


def block_queue() -> "queue.Queue[Block]":
    """Return an empty queue of bounded length."""
    return queue.Queue(MOST_QUEUED)


def offer(waiting: "queue.Queue[Block]", block: Block) -> None:
    """Queue a block without ever waiting; a full queue drops it, which the test sees as a gap."""
    try:
        waiting.put_nowait(block)
    except queue.Full:
        return
