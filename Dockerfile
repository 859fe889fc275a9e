# Bondtrail alone, for docker-compose.yml: no compiler, no package manager, no shell is needed in it.
# How its services are watched stands there too.

FROM python:3.11.13-slim-bookworm AS build
WORKDIR /build
COPY pyproject.toml constraints.txt README.md LICENSE ./
COPY bondtrail bondtrail
COPY store store
COPY ingest ingest
COPY analytics analytics
COPY dashboard dashboard
COPY replay_data replay_data
# Libraries bring their own tests, C headers and maps of scripts: a sixth of it all.
RUN python -m venv --without-pip /opt/bondtrail \
 && pip --python /opt/bondtrail/bin/python install --no-cache-dir -c constraints.txt . \
 && find /opt/bondtrail/lib -type d \( -name tests -o -name include \) -prune -exec rm -r {} + \
 && find /opt/bondtrail/lib -name '*.js.map' -delete

FROM python:3.11.13-slim-bookworm
# The home of what libraries keep for themselves: the only place that can be written to.
ENV PATH=/opt/bondtrail/bin:$PATH HOME=/tmp MPLCONFIGDIR=/tmp PYTHONUNBUFFERED=1
COPY --from=build /opt/bondtrail /opt/bondtrail
USER 10001:10001
WORKDIR /tmp
ENTRYPOINT ["bondtrail"]
CMD ["--help"]
