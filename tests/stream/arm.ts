/** Arms as the page does: with the key that it asks for. @returns the answer to POST /arm */
export async function armAsWearer(
  port: number,
  hand?: string,
): Promise<{ status: number; body: Record<string, unknown> }> {
  const url = `http://127.0.0.1:${port}`;
  const { key } = (await (await fetch(`${url}/wearer`)).json()) as { key: string };
  const response = await fetch(`${url}/arm${hand === undefined ? '' : `?hand=${hand}`}`, {
    method: 'POST',
    headers: { 'tautline-wearer': key },
  });
  return { status: response.status, body: (await response.json()) as Record<string, unknown> };
}
