"""REST and server-sent events over HTTP.

`application.build_application` makes the application from the ports in `services.Services`, and
`serving.serve` listens with it. `routes` is the one table of operations; the router and the OpenAPI document
are both made from it. Nothing here knows which implementation is behind a port.
"""
