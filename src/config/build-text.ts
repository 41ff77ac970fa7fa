import { Document, isMap, isSeq, type YAMLMap, type YAMLSeq } from 'yaml';
import { type Build, GLOVE_SECTIONS, type GloveSection, SAFETY_DEFAULTS, sectionDefaults } from './build.js';
import type { GloveProfile } from './schema.js';

/** A build as YAML: every figure of its parts in full, so that it means the same under any version's defaults. */
export function buildText(build: Build, header: readonly string[]): string {
  const document = new Document({
    profile: build.profile,
    name: build.name,
    gloves: build.gloves.map(gloveData),
    ...leaveOut('safety', build.safety, SAFETY_DEFAULTS),
  });
  for (const key of ['channels', 'actuators']) {
    const gloves = document.get('gloves') as YAMLSeq<YAMLMap>;
    for (const glove of gloves.items) {
      const list = glove.get(key);
      // A part a line, as people write them.
      if (isSeq(list)) for (const item of list.items) if (isMap(item)) item.flow = true;
    }
  }
  const comment = header.map((line) => `#${line === '' ? '' : ` ${line}`}`).join('\n');
  return `${comment}\n\n${document.toString({ lineWidth: 0 })}`;
}

function gloveData(glove: GloveProfile): Record<string, unknown> {
  const { name, hand, link, codec, channels, actuators, buttons } = glove;
  return {
    name,
    hand,
    link,
    codec,
    channels,
    actuators,
    buttons,
    ...Object.assign(
      {},
      ...GLOVE_SECTIONS.map((section: GloveSection) =>
        leaveOut(section, glove[section], sectionDefaults(section)),
      ),
    ),
  };
}

/** Taste rather than mechanics: said only where it is not as usual. */
function leaveOut(name: string, section: object, usual: object): Record<string, unknown> {
  const own = Object.entries(section).filter(
    ([key, value]) => value !== (usual as Record<string, unknown>)[key],
  );
  return own.length === 0 ? {} : { [name]: Object.fromEntries(own) };
}
