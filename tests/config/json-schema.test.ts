import { readdir, readFile } from 'node:fs/promises';
import { Ajv } from 'ajv';
import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { profileJsonSchema } from '../../src/config/json-schema.js';

const CONFIG = new URL('../../config/', import.meta.url);

describe('config/profile.schema.json', async () => {
  const text = await readFile(new URL('profile.schema.json', CONFIG), 'utf8');
  // Without `strict` off, an unknown keyword throws: an editor's validator must understand the whole of it.
  const validate = new Ajv({ strictTypes: false }).compile(JSON.parse(text));
  const profiles = (await readdir(CONFIG)).filter((name) => name.endsWith('.yaml'));

  it('is what the schema in the source gives (else: npm run generate)', () => {
    expect(text).toBe(profileJsonSchema());
  });

  it.each(profiles)('accepts %s as it is written, without defaults', async (name) => {
    validate(parse(await readFile(new URL(name, CONFIG), 'utf8')));
    expect(validate.errors ?? []).toEqual([]);
  });

  it('refuses unknown keys and missing keys', () => {
    expect(validate({ profile: 1 })).toBe(false);
    expect(validate({ profile: 1, gloves: [], straem: {} })).toBe(false);
  });
});
