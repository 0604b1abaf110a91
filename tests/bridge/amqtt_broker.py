"""An in-process broker in pure Python, for machines without mosquitto; speaks MQTT 3.1.1 only."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import threading
import warnings

from bridge_live import free_port


class AmqttBroker:
    """Runs in a thread of its own on 127.0.0.1."""

    def __init__(self, port=None):
        self.port = port or free_port()

    def __enter__(self):
        self.loop = asyncio.new_event_loop()
        self.up = threading.Event()
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()
        assert self.up.wait(10), "amqtt did not start"
        return self

    def _run(self):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from amqtt.broker import Broker

        logging.getLogger("amqtt").setLevel(logging.CRITICAL)
        logging.getLogger("transitions").setLevel(logging.CRITICAL)
        asyncio.set_event_loop(self.loop)
        config = {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{self.port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {}},
        }

        async def start():
            self.broker = Broker(config)
            await self.broker.start()
            self.up.set()

        self.loop.run_until_complete(start())
        self.loop.run_forever()
        self.loop.run_until_complete(self._end())
        self.loop.close()

    async def _end(self):
        # Its own shutdown waits for clients that have long gone: a little patience, then the end.
        with contextlib.suppress(asyncio.TimeoutError):
            await asyncio.wait_for(self.broker.shutdown(), 2.0)
        rest = asyncio.all_tasks() - {asyncio.current_task()}
        for task in rest:
            task.cancel()
        await asyncio.gather(*rest, return_exceptions=True)

    def __exit__(self, *_):
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(10)
