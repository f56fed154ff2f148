"""The desk: the whole job in a browser, for the people of a plant. It needs the extra ``web``.

``wideroll.server.app.create_app`` makes it, ``wideroll.server.serving.desk`` starts it; nothing is imported here, so
that it starts quickly. Nothing here computes: pages show what other acts wrote below ``results/``, and call these acts.
"""

__all__: list[str] = []
