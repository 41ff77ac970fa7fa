/**
 * docs/floor-plan.svg: the rooms of src/ and what each imports from the others, drawn by Graphviz. An import that
 * follows from others is left out (the transitive reduction), or nobody could see the plan for the arrows.
 */
import { instance } from '@viz-js/viz';
import { type Imports, PURE, ROOMS, readImports } from '../tests/floor-plan.js';

/** Files that every room may use say nothing about the plan. */
const FOR_ALL = ['time-slices.ts', 'steps.ts', 'clock.ts', 'package-files.ts', 'errors.ts'];

export interface FloorPlan {
  rooms: string[];
  /** Pairs of rooms in which the first imports from the second. */
  edges: [from: string, to: string][];
}

/** Rooms as nodes. */
export function floorPlanOf(imports: Imports): FloorPlan {
  const room = (file: string): string => file.split('/', 1)[0];
  const pairs = new Set<string>();
  for (const [file, list] of imports) {
    for (const { of } of list) {
      const [from, to] = [room(file), room(of)];
      if (imports.has(of) && from !== to && ![from, to].some((name) => FOR_ALL.includes(name)))
        pairs.add(`${from} ${to}`);
    }
  }
  return {
    rooms: ROOMS.filter((name) => !FOR_ALL.includes(name)),
    edges: [...pairs].sort().map((pair) => pair.split(' ') as [string, string]),
  };
}

/** Leaves out each edge that a longer way implies. The plan must have no circle. */
export function reduced({ rooms, edges }: FloorPlan): FloorPlan {
  const next = (from: string): string[] => edges.filter(([name]) => name === from).map(([, to]) => to);
  const reaches = (from: string, to: string): boolean =>
    from === to || next(from).some((name) => reaches(name, to));
  const implied = ([from, to]: [string, string]): boolean =>
    next(from).some((name) => name !== to && reaches(name, to));
  return { rooms, edges: edges.filter((edge) => !implied(edge)) };
}

const viz = await instance();

export function floorPlanPicture(): string {
  const { rooms, edges } = reduced(floorPlanOf(readImports('src')));
  const nodes = rooms.map((name) => {
    const fill = PURE.includes(name) ? '#d8ecd9' : name.endsWith('.ts') ? '#ffffff' : '#e8edf3';
    return `"${name}" [fillcolor="${fill}"]`;
  });
  return viz.renderString(
    `digraph "Rooms of src/" {
      bgcolor="#ffffff"; rankdir=TB; ranksep=0.35; nodesep=0.25; margin=0.1
      node [shape=box, style="rounded,filled", fontname="Helvetica,Arial,sans-serif", fontsize=12, color="#5b6770",
            height=0.3, margin="0.2,0.04"]
      edge [color="#5b6770", arrowsize=0.6]
      ${[...nodes, ...edges.map(([from, to]) => `"${from}" -> "${to}"`)].join('\n      ')}
    }`,
    { format: 'svg' },
  );
}
