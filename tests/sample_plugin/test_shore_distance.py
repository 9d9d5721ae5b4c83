from geopandas import GeoDataFrame, points_from_xy
from shapely import box
from shore_tools import shore_distance

from castshed.toolbox.testing import check_algorithm


def test_the_middle_of_a_round_kilometre_is_five_hundred_metres_out():
    spots = GeoDataFrame({"spot_id": ["a"]}, geometry=points_from_xy([500.0], [500.0]), crs=32615)
    shore = GeoDataFrame(geometry=[box(0, 0, 1000, 1000)], crs=32615)
    assert check_algorithm(shore_distance, spots, shore)["shore_m"].tolist() == [500.0]
