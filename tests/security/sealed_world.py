"""Keys for tests, and the small practice of the pages' tests with its database sealed."""

from web_world import World

from rungwise.app import create_app
from rungwise.parts import Parts
from rungwise.store import Store
from rungwise.store.sealing.crypto import Key
from rungwise.store.sealing.rotation import Rotation
from rungwise.store.sealing.unlocking import unlock

OLD, NEW, OTHER = (letter * 42 + "A" for letter in "abc")


def seal_world(world: World, key: Key) -> World:
    """The same practice with its database sealed, its store opened anew."""
    rotation = Rotation(world.store, [key])
    rotation.prepare()
    rotation.run(lambda _: None)
    world.store.close()
    store = Store(world.store.url)
    unlock(store, [key])
    return with_store(world, store)


def with_store(world: World, store: Store) -> World:
    parts = Parts(world.parts.settings, store, world.clock, world.parts.carriers)
    return World(parts, create_app(parts=parts), world.clock, world.trainers, world.clients)
