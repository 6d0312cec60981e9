-- Who belongs to a studio, what they may do there, and what they were trained for.

-- A row is a part of the college that books at the studio.
CREATE TABLE departments (
    studio_key    bigint NOT NULL,
    department_id text   NOT NULL,
    title         text   NOT NULL,
    revision      bigint NOT NULL,
    CONSTRAINT departments_pkey PRIMARY KEY (studio_key, department_id),
    CONSTRAINT departments_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key)
);

-- A row is somebody's part in one studio. The same person may have a row in each of several, under one id or several.
CREATE TABLE people (
    studio_key     bigint NOT NULL,
    person_id      text   NOT NULL,
    title          text   NOT NULL,
    role           text   NOT NULL,
    departments    text[] NOT NULL,
    trainings      jsonb  NOT NULL,
    openid_subject text,
    revision       bigint NOT NULL,
    CONSTRAINT people_pkey PRIMARY KEY (studio_key, person_id),
    CONSTRAINT people_subject_unique UNIQUE (openid_subject, studio_key),
    CONSTRAINT people_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT people_role_known CHECK (role IN ('viewer', 'maker', 'technician', 'steward')),
    CONSTRAINT people_trainings_list CHECK (jsonb_typeof(trainings) = 'array')
);

---- create above / drop below ----

DROP TABLE people;
DROP TABLE departments;
