"""A shared memory between web processes that may go away: then it remembers nothing, and no page fails for it."""

import logging

from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

log = logging.getLogger(__name__)


def _forgiving(method, otherwise):
    def call(self, *args, **options):
        try:
            return method(self, *args, **options)
        except (RedisError, OSError):
            log.warning("The cache server does not answer; going on without it.")
            return otherwise(*args, **options)

    call.__name__ = method.__name__
    return call


class ForgivingCache(RedisCache):
    """What is asked for is not there, what is to be kept is forgotten, as long as the server is away."""

    get = _forgiving(RedisCache.get, lambda key, default=None, version=None: default)
    get_many = _forgiving(RedisCache.get_many, lambda keys, version=None: {})
    has_key = _forgiving(RedisCache.has_key, lambda key, version=None: False)
    add = _forgiving(RedisCache.add, lambda *args, **options: True)
    set = _forgiving(RedisCache.set, lambda *args, **options: None)
    set_many = _forgiving(RedisCache.set_many, lambda data, *args, **options: list(data))
    touch = _forgiving(RedisCache.touch, lambda *args, **options: False)
    delete = _forgiving(RedisCache.delete, lambda *args, **options: False)
    delete_many = _forgiving(RedisCache.delete_many, lambda *args, **options: None)
    clear = _forgiving(RedisCache.clear, lambda: True)
