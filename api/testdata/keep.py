"""Makes vine.jpg and vine.json from a photo with known truth (see
testdata/photos): the photo at half its size, and the measurement that a
faultless program would return of it. Run: python3 keep.py TRUTH.json PHOTO.jpg
"""
import json, sys
import numpy as np
from PIL import Image

truth = json.load(open(sys.argv[1]))
photo = Image.open(sys.argv[2])
half = lambda p: [round((p[0] + .5) / 2 - .5, 1), round((p[1] + .5) / 2 - .5, 1)]
w, h = photo.size[0] // 2, photo.size[1] // 2
photo.resize((w, h), Image.LANCZOS).save('vine.jpg', quality=72)

corners = [half(p) for p in truth['reference']['pattern_corners_px']]
mm = [[-67.5, -45], [67.5, -45], [67.5, 45], [-67.5, 45]]
rows, right = [], []
for (x, y), (X, Y) in zip(corners, mm):
    rows += [[x, y, 1, 0, 0, 0, -X * x, -X * y], [0, 0, 0, x, y, 1, -Y * x, -Y * y]]
    right += [X, Y]
homography = list(np.linalg.solve(np.array(rows), np.array(right))) + [1.0]

def interval(v, rel, decimals=1):
    return {'value': round(v, decimals), 'low': round(v * (1 - rel), decimals), 'high': round(v * (1 + rel), decimals)}

canes = []
for c in truth['canes']:
    if c['vine'] != 0 or c['visible_fraction'] < .7 or c['visible_length_mm'] < 250:
        continue
    line = [(half(p), s, dia) for p, s, dia in zip(c['centreline_px'], c['centreline_mm'], c['centreline_diameter_mm'])]
    inside = [q for q in line if 0 <= q[0][0] < w and 0 <= q[0][1] < h]
    tip = inside[-1][1]
    thin = inside[::3]
    if thin[-1] is not inside[-1]:
        thin.append(inside[-1])
    nodes = [n for n in c['nodes'] if n['mm'] < tip]
    joints = [i for i in c['internodes'] if i['index'] < len(nodes) - 1]
    canes.append({
        'id': len(canes) + 1, 'traced': 'automatic',
        'centre_line_px': [q[0] for q in thin], 'along_mm': [q[1] for q in thin],
        'length_mm': interval(tip, .04, 0),
        'diameter_mm': interval(c['median_diameter_first8_mm'], .09),
        'internode_mm': interval(c['median_internode_first8_mm'], .05, 0),
        'nodes': [{'px': half(n['px']), 'along_mm': n['mm'], 'side': n['bud_side'], 'confidence': .9} for n in nodes],
        'internodes': [{'length_mm': interval(i['length_mm'], .05), 'diameter_mm': interval(i['apparent_diameter_mm'], .09)} for i in joints],
        'profile': [{'along_mm': q[1], 'diameter_mm': q[2], 'u_mm': .1} for q in inside],
        'origin': 'head' if c['origin'] in ('head', 'spur') else 'old_wood', 'leaves_frame': len(inside) < len(line),
        'relative_u': .03, 'finding': '', 'because': [],
    })

roles = {'fruiting_1': 'lower_fruiting', 'fruiting_2': 'upper_fruiting'}
json.dump({
    'photo': 'vine.jpg', 'sha256': '', 'width_px': w, 'height_px': h, 'program': 'kept', 'rule_set': '', 'outcome': 'measured', 'reasons': [],
    'reference': {'kind': 'checker', 'mm_per_px': round(truth['reference']['mm_per_px_centre'] * 2, 4), 'outline_px': corners, 'residual_px': .05,
                  'relative_u': .002, 'tilt_deg': 5, 'px_to_mm': homography},
    'wires': [{'line_px': [half(p) for p in (v['polyline_px'][0], v['polyline_px'][-1])], 'role': roles.get(v['name'], 'catch')} for v in truth['wires']],
    'head_px': half(truth['head']['px']), 'canes': canes, 'timing_ms': {'total': 1},
}, open('vine.json', 'w'), separators=(',', ':'))
