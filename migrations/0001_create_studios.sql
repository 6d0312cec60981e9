-- Studios, their equipment, materials and recipes, who may come in, and the trace of every change.
-- Every key begins with the studio, so that studios can be spread over several machines later.

CREATE EXTENSION IF NOT EXISTS btree_gist;

-- A row is one site that shares equipment. Writers lock it first, so that the revision has no gaps and is in commit order.
CREATE TABLE studios (
    studio_key         bigint GENERATED ALWAYS AS IDENTITY,
    studio_id          text             NOT NULL,
    title              text             NOT NULL,
    time_zone          text             NOT NULL,
    step_minutes       integer          NOT NULL,
    charge_minutes     integer          NOT NULL,
    draw_minutes       integer          NOT NULL,
    acid_mist_fraction double precision NOT NULL,
    revision           bigint           NOT NULL,
    equipment_revision bigint           NOT NULL,
    own_revision       bigint           NOT NULL,
    create_time        timestamptz      NOT NULL,
    CONSTRAINT studios_pkey PRIMARY KEY (studio_key),
    CONSTRAINT studios_id_unique UNIQUE (studio_id),
    CONSTRAINT studios_revisions_ordered CHECK (equipment_revision <= revision AND own_revision <= revision),
    CONSTRAINT studios_step_range CHECK (step_minutes BETWEEN 0 AND 60)
);

-- A row is one equipment resource as it now stands. The body is read and written as a whole, since every check needs the
-- whole site; what the database must hold together (furnace occupancy) refers to the key.
CREATE TABLE equipment (
    studio_key    bigint NOT NULL,
    equipment_key bigint GENERATED ALWAYS AS IDENTITY,
    kind          text   NOT NULL,
    equipment_id  text   NOT NULL,
    revision      bigint NOT NULL,
    body          jsonb  NOT NULL,
    CONSTRAINT equipment_pkey PRIMARY KEY (studio_key, equipment_key),
    CONSTRAINT equipment_id_unique UNIQUE (studio_key, kind, equipment_id),
    CONSTRAINT equipment_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT equipment_kind_known CHECK (kind IN
        ('rooms', 'extractionCircuits', 'supplies', 'furnaces', 'staffedHours', 'closures')),
    CONSTRAINT equipment_body_object CHECK (jsonb_typeof(body) = 'object')
);

-- A row is one version of a material. Rows never change.
CREATE TABLE material_versions (
    studio_key  bigint      NOT NULL,
    material_id text        NOT NULL,
    version     integer     NOT NULL,
    body        jsonb       NOT NULL,
    create_time timestamptz NOT NULL,
    CONSTRAINT material_versions_pkey PRIMARY KEY (studio_key, material_id, version),
    CONSTRAINT material_versions_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT material_versions_positive CHECK (version > 0)
);

-- A row is one version of a recipe. Rows never change.
CREATE TABLE recipe_versions (
    studio_key  bigint      NOT NULL,
    recipe_id   text        NOT NULL,
    version     integer     NOT NULL,
    body        jsonb       NOT NULL,
    create_time timestamptz NOT NULL,
    CONSTRAINT recipe_versions_pkey PRIMARY KEY (studio_key, recipe_id, version),
    CONSTRAINT recipe_versions_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT recipe_versions_positive CHECK (version > 0)
);

-- A row is one key that somebody holds; only the SHA-256 of its secret is kept.
CREATE TABLE access_keys (
    secret_sha256 bytea       NOT NULL,
    caller_id     text        NOT NULL,
    role          text        NOT NULL,
    create_time   timestamptz NOT NULL,
    CONSTRAINT access_keys_pkey PRIMARY KEY (secret_sha256),
    CONSTRAINT access_keys_sha256_length CHECK (octet_length(secret_sha256) = 32),
    CONSTRAINT access_keys_role_known CHECK (role IN ('viewer', 'maker', 'technician', 'steward'))
);

-- A row is one change in a studio. Rows are only ever added: audit, watch log and freshness of plans at once.
CREATE TABLE changes (
    studio_key  bigint      NOT NULL,
    revision    bigint      NOT NULL,
    change_time timestamptz NOT NULL,
    caller_id   text        NOT NULL,
    request_id  uuid,
    method      text        NOT NULL,
    subject     text        NOT NULL,
    before      jsonb,
    after       jsonb,
    CONSTRAINT changes_pkey PRIMARY KEY (studio_key, revision),
    CONSTRAINT changes_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key)
);

-- A row remembers what a request id did, so that a repeat does nothing. Kept seven days.
CREATE TABLE requests (
    studio_key  bigint      NOT NULL,
    caller_id   text        NOT NULL,
    request_id  uuid        NOT NULL,
    method      text        NOT NULL,
    body_sha256 bytea       NOT NULL,
    resources   text[]      NOT NULL,
    create_time timestamptz NOT NULL,
    CONSTRAINT requests_pkey PRIMARY KEY (studio_key, caller_id, request_id),
    CONSTRAINT requests_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT requests_sha256_length CHECK (octet_length(body_sha256) = 32)
);

CREATE INDEX requests_by_age ON requests (create_time);

---- create above / drop below ----

DROP TABLE requests;
DROP TABLE changes;
DROP TABLE access_keys;
DROP TABLE recipe_versions;
DROP TABLE material_versions;
DROP TABLE equipment;
DROP TABLE studios;
